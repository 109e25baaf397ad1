"""Compiles the formulas when the package is built.

Without a C compiler on the machine, that of the ziglang wheel is asked for. Where neither is to
be had, the package is built without compiled kernels: numpy runs the same formulas more slowly.
"""

from __future__ import annotations

import platform
import shutil
import sys
import sysconfig
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class Compile(BuildHookInterface):  # type: ignore[type-arg]
    """The step of the build that compiles."""

    PLUGIN_NAME = "custom"

    def dependencies(self) -> list[str]:
        """Return what compiling needs: a compiler, where the machine has none."""
        has_compiler = any(shutil.which(name) for name in ("cc", "gcc", "clang"))
        if has_compiler and sys.platform != "win32":
            return []
        known = platform.machine().lower() in ("x86_64", "amd64", "aarch64", "arm64")
        return ["ziglang>=0.13"] if known else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile into the package's folder, and have the wheel take what was made."""
        if self.target_name != "wheel":
            return
        sys.path.insert(0, self.root)
        try:
            from lookkit.kernel.build import compile_all

            made = compile_all()
        except Exception as error:
            self.app.display_warning(f"built without compiled kernels: {error}")
            return
        finally:
            sys.path.remove(self.root)
        build_data["pure_python"] = False
        where = sysconfig.get_platform().replace("-", "_").replace(".", "_")
        build_data["tag"] = f"py3-none-{where}"
        build_data["force_include"].update(
            {str(path): f"lookkit/kernel/{Path(path).name}" for path in made}
        )
