"""Every fault of watched folders we know of is held by tests that exist."""

import ast
import tomllib
from pathlib import Path

HERE = Path(__file__).resolve().parent


def named_in(module: str) -> set[str]:
    tree = ast.parse((HERE / f"{module}.py").read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}


def test_every_case_names_tests_that_exist() -> None:
    cases = tomllib.loads((HERE / "watch_cases.toml").read_text(encoding="utf-8"))
    assert list(cases) == [f"W{number:02}" for number in range(1, len(cases) + 1)]
    assert len(cases) >= 25
    for name, case in cases.items():
        assert case.keys() == {"fault", "holds", "tests"}, name
        assert case["tests"], name
        for module, _, test in (named.partition("::") for named in case["tests"]):
            assert test in named_in(module), f"{name}: {module} has no {test}"
