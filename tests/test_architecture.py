"""The size of things, as habits with a limit; the arrows are checked by lint-imports."""

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted((ROOT / "pipeline").rglob("*.py"))
LONGEST_MODULE = 400
LONGEST_BODY = 45


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            yield node


def body_lines(function: ast.FunctionDef) -> int:
    first = function.body[0]
    has_docstring = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    start = first.end_lineno if has_docstring and len(function.body) > 1 else first.lineno - 1
    return (function.end_lineno or 0) - (start or 0)


def test_no_module_is_two_rooms() -> None:
    lengths = {str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert len(lengths) > 30
    assert {name: n for name, n in lengths.items() if n > LONGEST_MODULE} == {}


def test_a_function_can_be_taken_in_at_a_glance() -> None:
    long = {
        f"{path.name}:{function.name}": body_lines(function)
        for path in MODULES
        for function in functions(ast.parse(path.read_text(encoding="utf-8")))
        if body_lines(function) > LONGEST_BODY
    }
    assert long == {}


def test_every_import_is_absolute() -> None:
    relative = [
        f"{path.name}:{node.lineno}"
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.level
    ]
    assert relative == []


def test_data_folders_hold_no_python() -> None:
    found = [p for folder in ("schemas", "report_templates", "inbox_example") for p in (ROOT / folder).rglob("*.py")]
    assert found == []


def test_top_level_is_as_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "pipeline", "schemas", "report_templates", "tests"}
    made_by_tools = {"build", "dist", "baywright.egg-info"}
    visible = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")} - made_by_tools
    assert {name for name in visible if not name.startswith("baywright-demo")} == agreed | {"inbox_example"}
