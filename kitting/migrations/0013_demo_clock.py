from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("kitting", "0012_country"),
    ]

    operations = [
        migrations.AddField(
            model_name="workshop",
            name="ahead_s",
            field=models.BigIntegerField(default=0),
        ),
        migrations.AddConstraint(
            model_name="workshop",
            constraint=models.CheckConstraint(
                condition=models.Q(("demo", True), ("ahead_s", 0), _connector="OR"),
                name="kitting_workshop_only_a_demo_is_ahead",
            ),
        ),
    ]
