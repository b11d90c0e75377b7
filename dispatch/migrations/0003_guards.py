from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import migrations

from kitting.ledger.guards import drop_guards, install_guards

if TYPE_CHECKING:
    from django.apps.registry import Apps
    from django.db.backends.base.schema import BaseDatabaseSchemaEditor


def install(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    install_guards(schema_editor.connection)


def drop(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    drop_guards(schema_editor.connection)


class Migration(migrations.Migration):
    dependencies = [("dispatch", "0002_shipments")]

    operations = [migrations.RunPython(install, drop)]
