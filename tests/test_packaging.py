"""The lock file covers what is installed, and what is imported is declared."""

import ast
import json
import re
import runpy
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
FRONT = ROOT / "previz" / "bench" / "front"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
DISTRIBUTION_OF = {"fcl": "python-fcl", "PIL": "pillow", "mapbox_earcut": "mapbox-earcut", "OpenGL": "pyopengl", "pxr": "usd-core"}


def declared(extras=()):
    """Return the requirements of the project with `extras`."""
    texts = list(PROJECT["dependencies"])
    for extra in extras:
        texts += PROJECT["optional-dependencies"][extra]
    return [Requirement(text) for text in texts]


def locked():
    """Return {canonical name: version} of the lock file."""
    lines = [line for line in (ROOT / "requirements.lock").read_text().splitlines() if line and not line.startswith("#")]
    return {canonicalize_name(name): version for name, version in (line.split("==") for line in lines)}


def brought_by(name):
    """Return what an installed distribution requires; nothing of an extra of ours that is left out of this environment."""
    extras = {canonicalize_name(Requirement(text).name) for extra, texts in PROJECT["optional-dependencies"].items() if extra != "test" for text in texts}
    try:
        return metadata.requires(name) or ()
    except metadata.PackageNotFoundError:
        assert name in extras, name
        return ()


def whole_tree(requirements):
    """Return every requirement that `requirements` bring with them on this machine; what an extra that is not installed here would bring is not known."""
    found, waiting = {}, list(requirements)
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        if name in found or (requirement.marker and not requirement.marker.evaluate({"extra": ""})):
            continue
        found[name] = requirement
        waiting += [Requirement(text) for text in brought_by(name)]
    return found


class TestLock:
    """requirements.lock pins everything that an install with the tests brings."""

    def test_every_line_is_one_pinned_version(self):
        """No hosts, no hashes, no ranges."""
        for line in (ROOT / "requirements.lock").read_text().splitlines():
            assert line.startswith("#") or re.fullmatch(r"[a-z0-9-]+==[0-9a-z.]+", line), line

    def test_every_dependency_is_pinned(self):
        """Nothing that pip would install is left to the day's newest version."""
        missing = sorted(set(whole_tree(declared(PROJECT["optional-dependencies"]))) - set(locked()))
        assert missing == []

    @pytest.mark.parametrize("requirement", declared(PROJECT["optional-dependencies"]), ids=str)
    def test_pins_satisfy_the_project(self, requirement):
        """A pin outside the project's own range could not be installed."""
        assert requirement.specifier.contains(locked()[canonicalize_name(requirement.name)])


class TestImports:
    """What the program imports, it declares."""

    def test_every_foreign_import_is_declared(self):
        """A fresh environment has only the declared packages; what an extra brings is imported inside functions alone."""
        always = {canonicalize_name(r.name) for r in declared()}
        extra = {canonicalize_name(r.name) for r in declared(set(PROJECT["optional-dependencies"]) - {"test"})}
        foreign = set()
        for path in (ROOT / "previz").rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                late = getattr(node, "col_offset", 0) > 0
                if isinstance(node, ast.Import):
                    foreign |= {(alias.name.split(".")[0], late) for alias in node.names}
                elif isinstance(node, ast.ImportFrom) and node.level == 0:
                    foreign.add((node.module.split(".")[0], late))
        ours = set(sys.stdlib_module_names) | {"previz", "__future__"}
        undeclared = {name for name, late in foreign if name not in ours and canonicalize_name(DISTRIBUTION_OF.get(name, name)) not in (extra | always if late else always)}
        assert undeclared == set()


class TestPageOfTheBench:
    """The page is built from what git holds, the same each time."""

    def test_npm_lock_names_no_registry(self):
        """From whatever registry the reader uses, and the very bytes that were tried."""
        lock = json.loads((FRONT / "package-lock.json").read_text())
        packages = {name: package for name, package in lock["packages"].items() if name}
        assert not [name for name, package in packages.items() if "resolved" in package]
        assert all(package["integrity"].startswith("sha512-") for package in packages.values())

    def test_npm_versions_are_pinned(self):
        """One version each, so that the same sources give the same page."""
        package = json.loads((FRONT / "package.json").read_text())
        assert all(re.fullmatch(r"\d+\.\d+\.\d+", version) for kind in ("dependencies", "devDependencies") for version in package[kind].values())

    def test_a_page_of_other_sources_is_due(self, tmp_path):
        """Changed, added or taken away: each source counts, packages of npm do not."""
        stamp = runpy.run_path(str(ROOT / ".packaging" / "stamp.py"))
        front, page = tmp_path / stamp["FRONT"], tmp_path / stamp["PAGE"]
        for path in (front / "src" / "main.ts", front / "index.html", front / "node_modules" / "three" / "three.js"):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(path.name)
        page.mkdir()
        assert stamp["page_is_due"](tmp_path)
        (page / stamp["STAMP"]).write_text(stamp["stamp"](front))
        (front / "node_modules" / "three" / "three.js").write_text("another")
        assert not stamp["page_is_due"](tmp_path)
        (front / "src" / "new.ts").write_text("")
        assert stamp["page_is_due"](tmp_path)
