from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("kitting", "0011_job_address")]

    operations = [
        migrations.AddField(
            model_name="workshop",
            name="country",
            field=models.CharField(blank=True, max_length=2),
        ),
    ]
