"""
Build step: compile the loops over rays while the wheel is made, and put the machine code into it.

Without this the first command after an install would wait for the compiler. The code fits the processor that built the
wheel; another one compiles for itself on first use. Where the step fails, for want of a dependency or for any other
reason, the wheel is made without it and only the first command is slower.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# What `previz.frames.ahead` imports, pinned as in the lock file: machine code made by one numba is not read by another.
NEEDED = (
    "embreex", "llvmlite", "mapbox-earcut", "networkx", "numba", "numpy", "pydantic", "python-fcl", "scipy", "shapely", "tomlkit", "trimesh",
)  # fmt: skip


class CompileLoops(BuildHookInterface):
    """Compile ahead for the wheel; leave an editable install and the source archive as they are."""

    PLUGIN_NAME = "custom"

    def dependencies(self):
        """Return what the build needs, at the versions of the lock file."""
        if self.target_name != "wheel":
            return []
        lock = (Path(self.root) / "requirements.lock").read_text()
        pinned = dict(re.findall(r"^([A-Za-z0-9._-]+)==(\S+)", lock, re.MULTILINE))
        known = {re.sub(r"[-_.]+", "-", name).lower(): version for name, version in pinned.items()}
        return [f"{name}=={known[name]}" for name in NEEDED if name in known]

    def initialize(self, version, build_data):
        """Run every loop once and add what the compiler left to the wheel."""
        if version == "editable" or os.environ.get("PREVIZ_COMPILE_AHEAD") == "0":
            return
        root = Path(self.root)
        self.app.display_info("compiling the loops over rays ahead of their use (about 20 s)")
        # The build's own dependencies may have come by the same path, so the package goes in front of it.
        path = os.pathsep.join(filter(None, [str(root), os.environ.get("PYTHONPATH")]))
        command = [sys.executable, "-m", "previz.frames.ahead"]
        done = subprocess.run(command, cwd=root, env=os.environ | {"PYTHONPATH": path}, capture_output=True, text=True)
        if done.returncode:
            reason = done.stderr.strip().splitlines()[-1:] or ["no reason given"]
            self.app.display_warning(f"not compiled ahead ({reason[0]}): the first command will take longer")
            return
        for kept in (root / "previz").rglob("__pycache__/*.nb[ic]"):
            build_data["force_include"][str(kept)] = str(kept.relative_to(root))
