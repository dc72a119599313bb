"""How many processes run the suite: two when all of it is asked for, else as the command line says."""

from __future__ import annotations

import pytest


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """Share the whole suite out over two processes, file by file, where the plug-in for it is installed."""
    is_whole = config.args_source is pytest.Config.ArgsSource.TESTPATHS
    if not is_whole or not config.pluginmanager.hasplugin("xdist") or hasattr(config, "workerinput"):
        return
    if config.option.numprocesses is None and not config.option.usepdb and not config.option.collectonly:
        config.option.dist, config.option.tx = "loadfile", ["popen", "popen"]
