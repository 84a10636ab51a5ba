import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models
from django.db.models import Q

STEPS = [
    ("waiting", "waiting to be printed"),
    ("pictures", "drawing the pictures"),
    ("pages", "setting the pages"),
    ("keeping", "keeping the file"),
    ("done", "printed"),
    ("failed", "not printed"),
]
KEY = models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")


class Migration(migrations.Migration):
    dependencies = [("reports", "0002_initial")]

    operations = [
        migrations.CreateModel(
            name="LinkCall",
            fields=[
                ("id", KEY),
                ("name", models.CharField(max_length=120, unique=True)),
                ("calls", models.PositiveIntegerField(default=0)),
                ("until", models.DateTimeField(db_index=True)),
            ],
        ),
        migrations.CreateModel(
            name="Printing",
            fields=[
                ("id", KEY.clone()),
                (
                    "sheet",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="printing",
                        to="reports.handoversheet",
                    ),
                ),
                ("step", models.CharField(choices=STEPS, default="waiting", max_length=10)),
                ("done", models.PositiveSmallIntegerField(default=0)),
                ("of", models.PositiveSmallIntegerField(default=0)),
                ("attempt", models.PositiveSmallIntegerField(default=1)),
                ("moved_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("fault", models.TextField(blank=True)),
            ],
        ),
        migrations.RemoveConstraint(model_name="handoversheet", name="handover_has_pdf_and_hash"),
        migrations.AlterField("handoversheet", "pdf", models.FileField(blank=True, upload_to="sheets/%Y/")),
        migrations.AlterField("handoversheet", "sha256", models.CharField(blank=True, max_length=64)),
        migrations.AlterField("historicalhandoversheet", "pdf", models.TextField(blank=True, max_length=100)),
        migrations.AlterField(
            "historicalhandoversheet", "sha256", models.CharField(blank=True, max_length=64)
        ),
        migrations.AddConstraint(
            "handoversheet",
            models.CheckConstraint(
                condition=Q(pdf="", sha256="") | (~Q(pdf="") & ~Q(sha256="")), name="handover_pdf_has_hash"
            ),
        ),
    ]
