"""Many tables made in one step of a migration."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class Tables(Operation):
    """Make tables in the order in which they need one another.

    Each on its own would have Django make every model anew that it has to do with: for
    seventy tables that takes two seconds, and this a quarter of one.
    """

    reduces_to_sql = True
    reversible = True
    serialization_expand_args: ClassVar = ["operations"]

    def __init__(self, operations: Sequence[CreateModel]) -> None:
        self.operations = operations

    def deconstruct(self) -> tuple[str, Sequence[object], dict[str, object]]:
        """Give what a migration writes of it."""
        return type(self).__qualname__, [], {"operations": self.operations}

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Add the models; they are made when the first one is asked for."""
        state.__dict__.pop("apps", None)
        for operation in self.operations:
            operation.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Make the tables."""
        for operation in self.operations:
            operation.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Remove the tables, the last one first."""
        for operation in reversed(self.operations):
            operation.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        """Say what it does."""
        return f"Make {len(self.operations)} tables"
