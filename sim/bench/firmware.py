"""Loads the emitted files in-process, each time with module state of its own."""

from __future__ import annotations

import importlib.util
import itertools
import sys
from functools import lru_cache
from types import CodeType, ModuleType
from typing import Any

from gen.firmware import FirmwareBundle

_runs = itertools.count()


@lru_cache(maxsize=256)
def _code(path: str, text: str) -> CodeType:
    return compile(text, f"<firmware {path}>", "exec")


class Firmware:
    """The emitted application, loaded once more."""

    config: Any
    """The module of its settings."""
    supervisor: Any
    """The module of the application's one entry."""

    def __init__(self, bundle: FirmwareBundle) -> None:
        self._prefix = f"_weldbeat_firmware_{next(_runs)}"
        self._bundle = bundle
        sys.meta_path.append(self)
        try:
            self.config = self._module("config", bundle.files["config.py"])
            self.supervisor = importlib.import_module(f"{self._prefix}.app.supervisor")
        finally:
            sys.meta_path.remove(self)
            for name in [name for name in sys.modules if name.startswith(self._prefix)]:
                del sys.modules[name]

    def _module(self, name: str, text: str) -> ModuleType:
        module = ModuleType(name)
        exec(_code(name, text), module.__dict__)
        return module

    # The two halves of an import hook (importlib.abc.MetaPathFinder and Loader) for this bundle's package.

    def find_spec(self, name: str, path: object, target: object = None) -> Any:
        if not name.startswith(self._prefix):
            return None
        inner = name[len(self._prefix) :].lstrip(".").replace(".", "/")
        package = inner in ("", "app")
        return importlib.util.spec_from_loader(name, self, is_package=package)  # type: ignore[arg-type]

    def create_module(self, spec: object) -> None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        inner = module.__name__[len(self._prefix) :].lstrip(".").replace(".", "/")
        path = {"": "", "app": "app/__init__.py"}.get(inner, f"{inner}.py")
        if path:
            exec(_code(path, self._bundle.files[path]), module.__dict__)
