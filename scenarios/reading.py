"""What did a campaign bring, for people who never run one?

from scenarios.reading import open_results
results = open_results("wideberth-out/hollin-fell.nc")
results.passes.nsmallest(5, "clearance_m")
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.dataset import LABELS, SCHEMA
from sim.errors import InputError, closest
from sim.measures.spectrum import Spectrum

if TYPE_CHECKING:
    import pandas
    import xarray


@dataclass(frozen=True)
class Results:
    """Every result of a scenario, as it stands in its file.

    Parameters
    ----------
    dataset : xarray.Dataset
        Dimensions case, blade, pass; each variable's unit in its ``attrs``, the provenance in the dataset's.
    """

    dataset: xarray.Dataset

    @cached_property
    def cases(self) -> pandas.DataFrame:
        """One row a case: its labels and numbers; a number of each blade has a column for each, from 1."""
        import pandas

        columns: dict[str, Any] = {}
        for name, variable in self.dataset.variables.items():
            if variable.dims == ("case",):
                columns[str(name)] = variable.values
            elif variable.dims == ("case", "blade"):
                columns |= {f"{name}_{b + 1}": variable.values[:, b] for b in range(variable.shape[1])}
        rest = [name for name in columns if name not in LABELS]
        return pandas.DataFrame({name: columns[name] for name in (*LABELS, *rest)})

    @cached_property
    def passes(self) -> pandas.DataFrame:
        """One row a pass: the labels of its case, and everything that is known of it."""
        import pandas

        of = self.dataset["pass_case"].values
        labels = {name: self.dataset[name].values[of] for name in LABELS if name != "key"}
        told = {
            str(name).removeprefix("pass_"): variable.values
            for name, variable in self.dataset.variables.items()
            if variable.dims == ("pass",)
        }
        return pandas.DataFrame(labels | told)

    def spectrum(self, channel: str, case: int) -> Spectrum:
        """Return the counted cycles of one channel of one case (its row), in the unit of ``channel_unit``.

        Raises
        ------
        InputError
            There is no such channel or case.
        """
        known = self.dataset["channel"].values.tolist()
        if channel not in known:
            raise InputError(f"channel '{channel}': unknown{closest(channel, known)}")
        if not 0 <= case < self.dataset.sizes["case"]:
            last = self.dataset.sizes["case"] - 1
            raise InputError(f"case {case}: there are {last + 1}, from 0 to {last}")
        place = case * len(known) + known.index(channel)
        return Spectrum(self._rows("cell", place), self._rows("residue", place))

    def _rows(self, name: str, place: int) -> NDArray[np.float64]:
        counts = self.dataset[f"{name}_count"].values.ravel()
        begin = int(counts[:place].sum())
        return self.dataset[f"{name}_value"].values[begin : begin + int(counts[place])]

    @property
    def provenance(self) -> dict[str, Any]:
        """What made the results: scenario, seed, code and versions, configuration."""
        told = dict(self.dataset.attrs)
        return told | {name: json.loads(told[name]) for name in ("versions", "set")}


def open_results(path: str | Path) -> Results:
    """Return the results that `wideberth results` wrote.

    Parameters
    ----------
    path : the NetCDF file

    Raises
    ------
    InputError
        There is no such file, it is no NetCDF, or it holds something else.
    """
    import xarray

    file = Path(path)
    if not file.is_file():
        hint = "; `wideberth results SCENARIO --store DIR` makes a file of a store" if file.is_dir() else ""
        raise InputError(f"{file}: no such file{hint}")
    try:
        dataset = xarray.load_dataset(file, engine="h5netcdf")
    except (OSError, ValueError, KeyError) as error:
        raise InputError(f"{file}: cannot be read as NetCDF ({error})") from error
    if "pass_case" not in dataset or "configuration_hash" not in dataset.attrs:
        raise InputError(f"{file}: holds no results of wideberth; `wideberth results SCENARIO` writes them")
    if int(dataset.attrs["schema"]) != SCHEMA:
        raise InputError(f"{file}: schema {dataset.attrs['schema']}; this code reads schema {SCHEMA}")
    return Results(dataset)
