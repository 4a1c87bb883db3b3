"""The house rules that a program can check: one-way imports, small parts, honest names."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import wavesim
from tests.unused_names import definitions, unused

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "wavesim"

# what every stage may import
LEAVES = (
    "arrays", "compiled", "constants", "disk_cache", "errors", "extras", "files", "glass",
    "grating_equation", "inputs", "memory", "random_streams", "raster", "results", "tables",
    "text", "threads", "version",
)  # fmt: skip
# the data flow; a stage may import those before it (DEVELOPERS.md says why lightpath stands there)
STAGES = (
    "scene", "light", "geometry", "grooves", "aperture", "diffraction", "plate", "colorimetry",
    "store", "lightpath", "study", "measuring", "ensemble", "fitting", "figures", "live", "cli",
)  # fmt: skip
FACADE = ("__init__", "__main__", "studies")  # the public module: imported by users, not by stages
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml",
    "wavesim", "scenes", "tests", "benchmarks",
}  # fmt: skip
LONGEST_MODULE = 450  # lines; about 400 is the aim
LONGEST_FUNCTION = 60  # lines without the docstring; about 10 is the aim

MODULES = sorted(PACKAGE.rglob("*.py"))


def stage_of(module: str) -> str:
    """ "wavesim.plate.rows" -> "plate"; the package itself -> "__init__"."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else "__init__"


def dotted(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """Every wavesim module imported anywhere in a module, also inside functions; and the line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((a.name, node.lineno) for a in node.names if stage_root(a.name))
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: a relative import"
            if node.module == "wavesim":
                yield from ((f"wavesim.{a.name}", node.lineno) for a in node.names)
            elif node.module is not None and stage_root(node.module):
                yield node.module, node.lineno


def stage_root(module: str) -> bool:
    return module == "wavesim" or module.startswith("wavesim.")


def wrong_imports(source: str, importer: str) -> list[str]:
    """Imports of a module that run against the flow, in words."""
    own = stage_of(importer)
    wrong = []
    for target, line in imports(ast.parse(source)):
        imported = stage_of(target)
        if imported in LEAVES or imported == own or own in FACADE:
            continue
        if own in LEAVES:
            wrong.append(f"{importer}, line {line}: a leaf imports {target}")
        elif imported not in STAGES or STAGES.index(imported) > STAGES.index(own):
            wrong.append(f"{importer}, line {line}: {own} imports {target}")
    return wrong


def test_imports_run_one_way() -> None:
    found = [w for path in MODULES for w in wrong_imports(path.read_text(), dotted(path))]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("importer", "source"),
    [
        ("wavesim.scene.model", "from wavesim.plate import Plate"),
        ("wavesim.light.sun", "def f():\n    import wavesim.study.predict"),
        ("wavesim.plate", "from wavesim import lightpath"),
        ("wavesim.errors", "from wavesim.scene import Scene"),
        ("wavesim.store", "from wavesim import expose"),
    ],
)
def test_an_import_against_the_flow_is_found(importer: str, source: str) -> None:
    assert len(wrong_imports(source, importer)) == 1


def needs(sources: dict[str, str]) -> dict[str, set[str]]:
    """For every module those that it imports, inside functions too; names are not followed."""
    found: dict[str, set[str]] = {}
    for module, source in sources.items():
        found[module] = set()
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.ImportFrom) and node.module is not None:
                inner = {f"{node.module}.{a.name}" for a in node.names} & sources.keys()
                found[module] |= inner or ({node.module} & sources.keys())
    return found


@pytest.mark.slow
def test_no_two_modules_need_each_other() -> None:
    """The face of a package, which hands names on, is left out."""
    files = [path for path in MODULES if path.name != "__init__.py"]
    graph = needs({dotted(path): path.read_text() for path in files})
    list(TopologicalSorter(graph).static_order())  # raises CycleError


def test_a_circle_is_found() -> None:
    circle = {"wavesim.a.b": "from wavesim.a import c", "wavesim.a.c": "from wavesim.a.b import x"}
    with pytest.raises(CycleError):
        list(TopologicalSorter(needs(circle)).static_order())


def test_benchmarks_need_nothing_of_the_tests() -> None:
    """They run where the program alone is installed."""
    tools = {"tests", "pytest", "hypothesis", "mpmath", "colour", "coloraide", "jsonschema"}
    for path in sorted((ROOT / "benchmarks").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not {name.split(".")[0] for name in names} & tools, path.name


def test_every_module_belongs_to_a_stage() -> None:
    stages = {stage_of(dotted(path)) for path in MODULES}
    assert stages <= {*LEAVES, *STAGES, *FACADE}


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_modules_and_functions_are_short(path: Path) -> None:
    text = path.read_text()
    assert len(text.splitlines()) <= LONGEST_MODULE
    long = [
        f"{node.name} has {code_lines(node)} lines"
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and code_lines(node) > LONGEST_FUNCTION
    ]
    assert not long


def classes_by_name(sources: dict[str, str]) -> dict[str, list[str]]:
    """Public classes of modules: where each name is defined."""
    found: dict[str, list[str]] = {}
    for module, source in sources.items():
        for node in ast.parse(source).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found.setdefault(node.name, []).append(module)
    return found


@pytest.mark.slow
def test_no_two_public_classes_share_a_name() -> None:
    classes = classes_by_name({dotted(path): path.read_text() for path in MODULES})
    shared = {name: modules for name, modules in classes.items() if len(modules) > 1}
    assert not shared


def test_a_shared_class_name_is_found() -> None:
    sources = {"wavesim.a": "class Air: ...", "wavesim.b": "class Air: ...\nclass _Air: ..."}
    assert classes_by_name(sources) == {"Air": ["wavesim.a", "wavesim.b"]}


def test_every_name_is_used() -> None:
    """By another part of the program, or by those who import `wavesim`; tests do not count."""
    sources = {dotted(path): path.read_text() for path in MODULES}
    assert not unused(sources, {("wavesim", name) for name in wavesim.__all__})


def test_a_name_without_a_use_is_found() -> None:
    sources = {
        "a": "from a.b import f\nfrom a import c\n__all__ = ['f']\nc.g()",
        "a.b": "LIMIT = 1\ndef f(): return f\ndef _h(): return LIMIT",
        "a.c": "def g(): ...\ndef h(): ...\nclass K: ...",
        "a.d": "from a.c import h as other\nfrom a import c\nprint(other, c.K)",
    }
    assert unused(sources, set()) == [("a.b", "_h"), ("a.b", "f")]
    assert unused(sources, {("a", "f")}) == [("a.b", "_h")]


def array_types(source: str) -> list[str]:
    """Names at a module's top that stand for a type of array and nothing else."""
    return [
        name
        for name, node in definitions(ast.parse(source))
        if isinstance(node, ast.Assign | ast.AnnAssign)
        and node.value is not None
        and re.fullmatch(r"(npt\.|numpy\.typing\.)?NDArray\[[^\[\]]*\]", ast.unparse(node.value))
    ]


def test_types_of_arrays_are_named_in_one_module() -> None:
    found = {dotted(path): array_types(path.read_text()) for path in MODULES}
    assert {module for module, names in found.items() if names} == {"wavesim.arrays"}


def test_a_type_of_arrays_is_found() -> None:
    assert array_types("A = npt.NDArray[np.uint8 | np.uint16]\nB = 3\nC = list[int]") == ["A"]


def code_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function from its name to its end, less those of its docstring."""
    lines = (node.end_lineno or node.lineno) - node.lineno + 1
    if ast.get_docstring(node) is None:
        return lines
    return lines - ((node.body[0].end_lineno or 0) - node.body[0].lineno + 1)


def kind_and_name(name: str) -> tuple[int, str]:
    """CONSTANTS, then Classes, then functions, as the linter sorts `__all__`."""
    return (0 if name.isupper() else 1 if name[0].isupper() else 2), name


def test_the_public_names_are_sorted_and_all_there() -> None:
    assert wavesim.__all__ == sorted(wavesim.__all__, key=kind_and_name)
    for name in wavesim.__all__:
        assert getattr(wavesim, name) is not None
    public = {name for name in vars(wavesim) if not name.startswith("_")}
    named = {n for n in public if not isinstance(getattr(wavesim, n), type(wavesim))}
    assert named - {"annotations", "TYPE_CHECKING"} == set(wavesim.__all__)
    assert set(wavesim.__all__) <= set(dir(wavesim))


def test_a_public_name_that_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'expos'"):
        wavesim.expos  # noqa: B018  (looking it up is the test)


PACKAGES = [p for p in MODULES if p.name == "__init__.py" and p.parent != PACKAGE]


@pytest.mark.parametrize("path", PACKAGES, ids=dotted)
def test_a_package_names_what_it_offers(path: Path) -> None:
    tree = ast.parse(path.read_text())
    offered = own_names(tree, dotted(path))
    module = importlib.import_module(dotted(path))
    declared = list(getattr(module, "__all__", []))
    assert declared == sorted(declared, key=kind_and_name)
    assert set(declared) <= offered
    used = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    assert offered - set(declared) <= used, "imported, neither offered nor used"
    assert all(hasattr(module, name) for name in declared)


def own_names(tree: ast.Module, package: str) -> set[str]:
    """Public functions and classes of a package's first file, and what it takes from its files."""
    names: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith(package):
            names |= {alias.asname or alias.name for alias in node.names}
    return {name for name in names if not name.startswith("_")}


def test_the_top_level_holds_nothing_else() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if listed.returncode != 0:
        pytest.skip("not a git checkout")
    present = [line for line in listed.stdout.splitlines() if (ROOT / line).exists()]
    top = {line.split("/")[0] for line in present}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL
