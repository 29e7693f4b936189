"""Ship the data folders inside the package; an editable install reads them from the checkout."""

from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class DataFolders(BuildHookInterface):  # type: ignore[type-arg]
    """Add the data folders to a wheel, so that it claims one top-level name only."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Hatchling calls this before it builds."""
        if version == "standard":
            for folder in ("schemas", "report_templates", "inbox_example"):
                build_data["force_include"][folder] = f"pipeline/{folder}"
