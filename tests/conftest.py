"""How does the suite run: in how many processes, and with what left of the test before?"""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def _fresh_log() -> Iterator[None]:
    """Undo what commands did to the log, in a fixture of a whole file too: level, and where it writes to."""
    log = logging.getLogger("wideberth")
    log.setLevel(logging.NOTSET)
    log.handlers.clear()
    yield
    log.setLevel(logging.NOTSET)
    log.handlers.clear()


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """Share the whole suite out over two processes, file by file, where the plug-in for it is installed."""
    is_whole = config.args_source is pytest.Config.ArgsSource.TESTPATHS
    if not is_whole or not config.pluginmanager.hasplugin("xdist") or hasattr(config, "workerinput"):
        return
    if config.option.numprocesses is None and not config.option.usepdb and not config.option.collectonly:
        config.option.dist, config.option.tx = "loadfile", ["popen", "popen"]
