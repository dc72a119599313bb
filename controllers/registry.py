"""Which layer does a name, an entry point, or ``path.py:Class`` mean?"""

from __future__ import annotations

import hashlib
import importlib
import importlib.util
import sys
import traceback
from collections.abc import Mapping
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

from controllers.parameters import build
from sim.errors import InputError, closest
from sim.interface import Layer

GROUP = "wideberth.layers"
OURS: Mapping[str, str] = {
    "power": "controllers.power:Power",
    "thrust-limit": "controllers.thrust_limit:ThrustLimit",
    "cyclic": "controllers.cyclic:Cyclic",
    "scheduled": "controllers.scheduled:Scheduled",
    "crude-guard": "controllers.crude:CrudeGuard",
    "guard": "controllers.guard:Guard",
    "kalman-guard": "controllers.kalman_guard:KalmanGuard",
    "preview": "controllers.preview:Preview",
    "learning": "controllers.learning:Learning",
    "predictive": "controllers.predictive:Predictive",
    "supervisor": "controllers.supervisor:Supervisor",
}


def names() -> list[str]:
    """List the layers at hand by name: ours first, then those of installed packages."""
    return [*OURS, *sorted(point.name for point in entry_points(group=GROUP) if point.name not in OURS)]


def find(spec: str, parameters: Mapping[str, Any] | None = None) -> Layer:
    """Make the layer that ``spec`` names.

    Parameters
    ----------
    spec : str
        A name of ``names()``, or ``path/to/logic.py:Class``.
    parameters : mapping
        Values for the layer's parameters, named as in its table.

    Raises
    ------
    InputError
        If the name is unknown, the file is missing or does not import (file, line and exception), the
        class is missing or no layer, says wrongly what it needs, or a parameter is refused.
    """
    layer = build(find_class(spec), parameters or {})
    lacking = [part for part in ("needs", "tower_pass", "init", "step") if not hasattr(layer, part)]
    if lacking:
        raise InputError(f"layer {spec}: lacks {', '.join(lacking)}; see controllers/template.py")
    if not (isinstance(layer.needs, tuple) and all(isinstance(name, str) for name in layer.needs)):
        example = '("azimuth",)'
        raise InputError(f"layer {spec}: needs = {layer.needs!r}; must be a tuple of sensors like {example}")
    if not isinstance(layer.tower_pass, bool):
        raise InputError(f"layer {spec}: tower_pass = {layer.tower_pass!r}; must be True or False")
    return layer


def find_class(spec: str) -> type:
    """Return the class that ``spec`` names without making a layer of it; raises as ``find``."""
    path, colon, name = spec.rpartition(":")
    if colon and path.endswith(".py"):
        return _class_in_file(Path(path), name)
    target = OURS.get(spec)
    if target is not None:
        module, _, name = target.partition(":")
        return getattr(importlib.import_module(module), name)
    for point in entry_points(group=GROUP):
        if point.name == spec:
            return _load_point(point)
    hint = "; a file of your own is named path/to/logic.py:Class" if ".py" in spec else ""
    raise InputError(f"unknown layer '{spec}'{closest(spec, names())}{hint}")


def _load_point(point: Any) -> type:
    try:
        return point.load()
    except (Exception, SystemExit) as error:
        raise InputError(f"layer {point.name}: {point.value} does not import: {_told(error)}") from error


def _class_in_file(path: Path, name: str) -> type:
    if not path.is_file():
        raise InputError(f"{path}: no such file; a layer of your own is named path/to/logic.py:Class")
    module = _import_file(path)
    found = getattr(module, name, None)
    if not isinstance(found, type):
        classes = [key for key, value in vars(module).items() if _defined_here(value, module)]
        raise InputError(f"{path}: has no class '{name}'{closest(name, classes) or '; it defines none'}")
    return found


def _defined_here(value: Any, module: Any) -> bool:
    return isinstance(value, type) and value.__module__ == module.__name__


def _import_file(path: Path) -> Any:
    """Import a file under a name of its own, made of its path and content, so that pickles find it again."""
    content = path.read_bytes()
    key = hashlib.sha256(str(path.resolve()).encode() + b"\0" + content).hexdigest()[:16]
    label = f"wideberth_layer_{path.stem}_{key}"
    if label in sys.modules:
        return sys.modules[label]
    described = importlib.util.spec_from_file_location(label, path)
    if described is None or described.loader is None:
        raise InputError(f"{path}: cannot be imported as Python")
    module = importlib.util.module_from_spec(described)
    sys.modules[label] = module
    try:
        described.loader.exec_module(module)
    except (Exception, SystemExit) as error:
        del sys.modules[label]
        raise InputError(f"{path}:{_line(path, error)}: does not import: {_told(error)}") from error
    return module


def _line(path: Path, error: BaseException) -> int:
    if isinstance(error, SyntaxError) and error.lineno is not None:
        return error.lineno
    frames = traceback.extract_tb(error.__traceback__)
    return next((f.lineno or 0 for f in reversed(frames) if Path(f.filename) == path), 0)


def _told(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}"
