"""What a lot, bag, run, protocol, box, shipment or consignee is stays as written.

Every column is bent by SQL on rows that the services made. The control is beside it:
what changes in the life of such a row does go through.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection, models

from dispatch.models import Consignee, Shipment
from kitting.models import Bag, Box, Lot, Protocol, Run
from tests import factories
from tests.kitting.ledger.test_guards import insert, refused, run_sql, settle, stored
from tests.ledgers import History

pytestmark = pytest.mark.django_db

# The columns that name a thing or say how it came about, written out by hand from the
# list of records: not taken from the rules under test.
NEVER: dict[type[models.Model], str] = {
    Lot: (
        "number part_id revision_id method_id source source_number made_on use_by stage"
    ),
    Bag: "number lot_id",
    Run: (
        "number line_id protocol_id meter_id zone_um belt_um_s exposure_ms passes"
        " rel_u_ppm belt_u_ppm decline_ppm opened_at closed_at stage"
    ),
    Protocol: (
        "code version name process required_top_uj_cm2 required_bottom_uj_cm2 turned"
        " hold_s min_value low_nm high_nm max_passes in_force_from evidence"
        " label_words signed_by"
    ),
    Box: "number recipe_id size_id bench_id serial packed_on batch closed_at",
    Shipment: (
        "number consignee_id point reference sent_at sent_by boxes sets stage"
        " haulier driver vehicle seal"
    ),
    Consignee: "code",
}
PAIRS = [(model, name) for model, names in NEVER.items() for name in names.split()]
STAGES = {Lot: "open", Run: "open", Shipment: "open"}


def thing(model: type[models.Model], history: History) -> Any:
    """A row that is past its beginning: closed, signed, labelled or sent."""
    return {
        Lot: history.visor_lot,
        Bag: history.band_lot.bags.first(),
        Run: history.released,
        Protocol: history.protocol,
        Box: history.labelled,
        Shipment: history.gone,
        Consignee: history.gone.consignee,
    }[model]


def other(row: Any, name: str) -> Any:
    """Another value that the column would take."""
    field = next(f for f in row._meta.concrete_fields if f.column == name)
    value = getattr(row, field.attname)
    if name == "stage":
        return STAGES[type(row)]
    if isinstance(field, models.ForeignKey):
        others = field.related_model._default_manager.exclude(pk=value)
        return others.values_list("pk", flat=True).last()
    if isinstance(field, models.BooleanField):
        return not value
    if isinstance(field, models.DateTimeField):
        return (value or factories.NOW) + timedelta(hours=1)
    if isinstance(field, models.DateField):
        return date(2031, 1, 1) if value is None else value + timedelta(days=1)
    if isinstance(field, models.IntegerField):
        return (value or 0) + 1
    return f"{value[:-1]}~"


@pytest.mark.parametrize(
    ("model", "name"), PAIRS, ids=[f"{m.__name__}.{n}" for m, n in PAIRS]
)
def test_what_a_thing_is_stays_as_written(
    model: type[models.Model], name: str, history: History
) -> None:
    factories.make_recipe()  # so that there is another one of everything
    factories.make_method()
    factories.make_meter()
    factories.make_bench()
    factories.make_size(factories.make_recipe())
    row = thing(model, history)
    row.refresh_from_db()
    before, value = stored(row), other(row, name)
    assert value is not None
    assert value != before[name]
    if isinstance(value, (date, datetime)):
        field = next(f for f in row._meta.concrete_fields if f.column == name)
        rows = model._default_manager.filter(pk=row.pk)
        assert refused(lambda: rows.update(**{field.attname: value}))
    else:
        table = row._meta.db_table
        statement = f'UPDATE "{table}" SET "{name}" = %s WHERE id = %s'
        assert refused(lambda: run_sql(statement, value, row.pk))
    assert stored(row) == before


def test_what_happens_to_a_thing_goes_through(history: History) -> None:
    """The control: the guards leave alone what the acts change."""
    lot = factories.make_lot(close=False)
    assert Lot.objects.filter(pk=lot.pk).update(stage="closed", verdict="accepted")
    run = Run.objects.get(stage="open")
    assert Run.objects.filter(pk=run.pk).update(rel_u_ppm=99_999)
    assert Run.objects.filter(pk=run.pk).update(
        stage="failed", closed_at=factories.NOW, rel_u_ppm=100_000
    )
    assert Protocol.objects.filter(pk=history.protocol.pk).update(
        in_force_until=date(2030, 1, 1)
    )
    assert Shipment.objects.filter(pk=history.gone.pk).update(
        stage="delivered", search="y"
    )
    assert Shipment.objects.filter(pk=history.waiting.pk).update(stage="cancelled")
    assert Consignee.objects.filter(pk=history.gone.consignee_id).update(name="New")


def test_a_draft_changes_and_goes(history: History) -> None:
    draft = factories.make_protocol(factories.make_revision(), signed_by="")
    drafts = Protocol.objects.filter(pk=draft.pk)
    assert drafts.update(name="Other", required_top_uj_cm2=5, label_words="x") == 1
    draft.loads.all().delete()
    draft.delete()
    assert not drafts.exists()


def test_the_moment_a_bag_was_opened_is_written_once(history: History) -> None:
    bag = history.band_lot.bags.filter(opened_at=None).first()
    assert bag is not None
    bags = Bag.objects.filter(pk=bag.pk)
    assert bags.update(opened_at=factories.NOW) == 1
    assert refused(lambda: bags.update(opened_at=factories.NOW + timedelta(hours=1)))
    assert refused(lambda: bags.update(opened_at=None))


def test_a_cancelled_shipment_is_not_taken_up_again(history: History) -> None:
    rows = Shipment.objects.filter(pk=history.waiting.pk)
    assert rows.update(stage="cancelled") == 1
    assert refused(lambda: rows.update(stage="open"))


def test_runs_consignees_and_signed_protocols_never_go(history: History) -> None:
    for row in (history.released, history.gone.consignee, history.protocol):
        table, before = row._meta.db_table, stored(row)
        assert refused(
            lambda t=table, r=row: run_sql(f"DELETE FROM {t} WHERE id={r.pk}")
        )
        assert stored(row) == before


@pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite's REPLACE only")
def test_nothing_replaces_them(history: History) -> None:
    settle()
    second_run = {**stored(Run.objects.get(stage="open")), "number": "R9"}
    for row in (history.released, history.gone.consignee, history.protocol):
        table, values = row._meta.db_table, stored(row)
        for taken in (values, {**values, "id": row.pk + 10_000}):
            assert refused(lambda t=table, v=taken: insert(t, v, "INSERT OR REPLACE"))
    second_run["id"] += 10_000
    assert refused(lambda: insert("kitting_run", second_run, "INSERT OR REPLACE"))
