"""The structure: every import leads to a file, downwards, in no circle; the page says what the code does."""

import ast
import re
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "pourcall"
CONTRACTS = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]
MOST_FILES = 14  # in one folder: more asks for a division; contract and the catalogue are flat vocabularies
LARGEST_SHARE = 0.15
# Objects of a general library, whose fields happen to be called as some of ours: module and field.
LIBRARY_FIELDS = {
    "app.width",
    "as_pdf.height",
    "as_pdf.width",
    "calibrate_command.usage",
    "charging.told",
    "main.description",
}


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def modules() -> dict[str, Path]:
    """Every module of the program by name, links left out."""
    return {
        module_of(path): path
        for path in sorted(PACKAGE.rglob("*.py"))
        if "firmware" not in path.parts  # runs on a board, imports nothing of ours
    }


def imports_of(path: Path) -> Iterator[str]:
    """Modules of ours that a file imports: at its top, in its functions and for its types alone."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.split(".")[0] == "pourcall")
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            if node.module is not None and node.module.split(".")[0] == "pourcall":
                for alias in node.names:
                    inner = f"{node.module}.{alias.name}"
                    yield inner if inner in modules() else node.module


def package_of(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


def packages() -> set[str]:
    return {package_of(name) for name in modules()} - {"", "__main__"}


def imported_packages(package: str) -> set[str]:
    """What a package imports, packages of ours, itself left out."""
    found = {
        package_of(imported)
        for name, path in modules().items()
        if package_of(name) == package
        for imported in imports_of(path)
    }
    return found - {package, ""}


def layers() -> list[set[str]]:
    """Of the import contract, from the ground up."""
    (contract,) = [each for each in CONTRACTS if each["type"] == "layers"]
    return [{name.strip() for name in layer.split("|")} for layer in reversed(contract["layers"])]


def allowed_by_contracts() -> dict[str, set[str]]:
    """By package, what stands below it and no contract of its own forbids."""
    below: set[str] = set()
    may: dict[str, set[str]] = {}
    for layer in layers():
        may |= {package: set(below) for package in layer}
        below |= layer
    for contract in CONTRACTS:
        for source in contract.get("source_modules", ()):
            may[package_of(source)] -= {
                name.removeprefix("pourcall.") for name in contract["forbidden_modules"] if name.count(".") == 1
            }
    return may


def allowed_by_page() -> dict[str, set[str]]:
    """The table of packages in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    rows = re.findall(r"^\| `pourcall/(\w+)/` \|[^|]*\| ([^|]*) \|$", text, re.MULTILINE)
    return {name: set() if told.startswith("nothing") else set(re.findall(r"\w+", told)) for name, told in rows}


def test_every_import_leads_to_a_file_by_its_path() -> None:
    wrong = [
        f"{name} imports {imported}"
        for name, path in modules().items()
        for imported in imports_of(path)
        if not (ROOT / f"{imported.replace('.', '/')}.py").is_file()
        and not (ROOT / imported.replace(".", "/") / "__init__.py").is_file()
    ]
    assert wrong == []


def test_no_import_runs_in_a_circle_not_even_one_for_types_alone() -> None:
    graph = {name: set(imports_of(path)) - {name} for name, path in modules().items()}
    left = dict(graph)
    while free := [name for name, needs in left.items() if not needs & left.keys()]:
        for name in free:
            del left[name]
    assert sorted(left) == []


def test_every_package_stands_in_the_import_contract_once() -> None:
    named = [name for layer in layers() for name in layer]
    assert sorted(named) == sorted(packages())


def test_the_table_of_packages_says_what_the_contracts_allow() -> None:
    assert allowed_by_page() == allowed_by_contracts()


def test_a_package_imports_what_its_row_allows_and_its_row_allows_nothing_it_does_not_need() -> None:
    assert {package: imported_packages(package) for package in packages()} == allowed_by_page()


def test_no_package_holds_more_than_its_share_of_the_code() -> None:
    lines: dict[str, int] = {}
    for name, path in modules().items():
        lines[package_of(name)] = lines.get(package_of(name), 0) + len(path.read_text("utf-8").splitlines())
    total = sum(lines.values())
    assert {name: count for name, count in lines.items() if count > LARGEST_SHARE * total} == {}


def test_no_folder_holds_so_many_modules_that_one_loses_sight() -> None:
    folders: dict[str, int] = {}
    for path in modules().values():
        if path.name != "__init__.py" and path.parent.name not in ("contract", "english"):
            folder = str(path.parent.relative_to(ROOT))
            folders[folder] = folders.get(folder, 0) + 1
    assert {folder: count for folder, count in folders.items() if count > MOST_FILES} == {}


def _written(tree: ast.Module) -> tuple[set[str], dict[str, int]]:
    """Names of the state that the classes of a module keep, and of what it writes through another name than `self`."""
    kept, outside = set[str](), dict[str, int]()
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            kept |= {
                each.target.id
                for each in node.body
                if isinstance(each, ast.AnnAssign) and isinstance(each.target, ast.Name)
            }
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            if isinstance(node.value, ast.Name) and node.value.id == "self":
                kept.add(node.attr)
            else:
                outside[node.attr] = node.lineno
    return kept, outside


def test_state_is_written_by_the_module_that_owns_it_alone() -> None:
    """A class that is changed from elsewhere has no invariant that one can read in one place."""
    trees = {path: ast.parse(path.read_text("utf-8")) for path in modules().values()}
    written = {path: _written(tree) for path, tree in trees.items()}
    ours = set[str]().union(*(kept for kept, _ in written.values()))
    assert [
        f"{path.relative_to(ROOT)}:{line} writes {name}"
        for path, (kept, outside) in written.items()
        for name, line in outside.items()
        if name in ours - kept and f"{path.stem}.{name}" not in LIBRARY_FIELDS
    ] == []


def test_every_module_says_in_its_first_line_what_it_is() -> None:
    """More than its own name; a package's `__init__` may leave it to the modules."""
    firsts = {
        str(path.relative_to(ROOT)): (ast.get_docstring(ast.parse(path.read_text("utf-8"))) or "").split("\n")[0]
        for path in modules().values()
        if path.name != "__init__.py"
    }
    assert {name: line for name, line in firsts.items() if len(line.split()) < 4} == {}
