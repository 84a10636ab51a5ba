"""The hours of each weekday, Monday to Friday as before until the owner says otherwise."""

from django.db import migrations, models

import workshop.models.shop

FIELD = models.JSONField(default=workshop.models.shop.default_working_hours)


class Migration(migrations.Migration):
    dependencies = [("workshop", "0001_initial")]

    operations = [
        migrations.AddField("shopprofile", "working_hours", FIELD),
        migrations.AddField("historicalshopprofile", "working_hours", FIELD),
    ]
