"""Does the order of a stack's layers make sense, and does each fit its turbine?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from sim.design import Turbine
from sim.errors import InputError


def order_problems(names: Sequence[str], layers: Sequence[Any]) -> Iterator[tuple[int, str]]:
    """Yield the place of each layer that cannot stand where it does, and what to do about it.

    Parameters
    ----------
    names : as the scenario writes them, from the lowest up
    layers : the layers themselves
    """
    makes_power = [bool(getattr(layer, "power", False)) for layer in layers]
    if not makes_power[0]:
        passing = "tower-pass logic adjusts what power commands; " if layers[0].tower_pass else ""
        yield 0, f"the lowest layer must make power: {passing}put 'power' or a power layer of your own first"
    kinds = [type(layer) for layer in layers]
    for place, name in enumerate(names):
        if place and kinds[place] in kinds[:place]:
            yield place, f"is in the stack twice; remove one: entries.parameters.{name} sets how it acts"
        elif place and makes_power[place]:
            yield place, _second_power(names[:place], makes_power[0])
        else:
            yield from ((place, why) for why in _misplaced(place, names, layers))


def _second_power(below: Sequence[str], makes_power: bool) -> str:
    if makes_power:
        return (
            f"'{below[0]}' at the bottom makes power already, and this layer would undo what lies between; "
            "keep one of the two"
        )
    return f"a layer that makes power overrules those below it ({_quoted(below)}); move it to the bottom"


def _misplaced(place: int, names: Sequence[str], layers: Sequence[Any]) -> Iterator[str]:
    """Yield why an adjusting layer may not stand where it does.

    The reference, against which tower-pass logic is judged, is what the layers below the first of that logic
    command: what adjusts power production above it would count as an action of that logic.
    """
    passing = [other for other, layer in zip(names[:place], layers, strict=False) if layer.tower_pass]
    if passing and not layers[place].tower_pass:
        yield (
            f"adjusts power production, and so must stand below tower-pass logic ({_quoted(passing)}), which "
            "adds to it and is judged against it; move it down, or, should it act for the passes' sake, give "
            "it tower_pass = True"
        )
    above = names[place + 1 :]
    if above and getattr(layers[place], "watches", False):
        yield f"watches the layers below it only, not {_quoted(above)}; move it to the top"


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)


def fit_problems(layers: Sequence[Any], design: Turbine, period: float) -> Iterator[tuple[int, str]]:
    """Yield the place of each layer whose model does not fit the turbine, and what to do about it.

    Parameters
    ----------
    layers : those that have a model offer ``fits(known)``, which raises `InputError` where it does not fit
    design : Turbine
    period : float [s]
    """
    with_model = [place for place, layer in enumerate(layers) if hasattr(layer, "fits")]
    if not with_model:
        return
    from sim.plant.known import gather_known

    known = gather_known([design], np.zeros(1, np.int64), np.zeros(1), period)
    for place in with_model:
        try:
            layers[place].fits(known)
        except InputError as error:
            for text in error.problems:
                yield place, text
