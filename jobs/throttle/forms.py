"""Form of a throttle table, pasted or uploaded as text."""

from collections.abc import Sequence
from typing import Any

from django import forms

from jobs.calc.throttle.tables import ThrottleMap
from jobs.job.table_field import READ_FROM_FILE, show_file_text, table_area
from jobs.models import ThrottleTable
from workshop.records.conflict import history_since
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.units.display import format_plain

EXAMPLE = "\t2000\t4000\t6000\n0\t0\t0\t0\n50\t38\t40\t42\n100\t100\t100\t100"


def format_table(table: ThrottleTable) -> str:
    """Return a stored table as tab-separated text, as it would be pasted."""
    lines = [["", *map(format_plain, table.engine_speed_rpm)]]
    lines += [
        [format_plain(grip), *map(format_plain, row)]
        for grip, row in zip(table.grip_pct, table.plate_pct, strict=True)
    ]
    return "\n".join("\t".join(line) for line in lines)


class ThrottleTableForm(FieldGroupsMixin, RecordForm):
    GROUPS = (("The mode", ("mode", "for_whom")), ("The table", ("table_text", "table_file")))

    table_text = forms.CharField(
        label="Table (pasted)",
        required=False,
        strip=False,
        widget=table_area(10, EXAMPLE),
        help_text="First row: engine speeds (rpm). First column: grip (%). Cells: plate (%). Separate cells "
        "with tabs, semicolons or spaces.",
    )
    table_file = forms.FileField(label="Or a text or CSV file", required=False, widget=forms.FileInput)
    table: ThrottleMap | None = None

    class Meta(RecordForm.Meta):
        model = ThrottleTable
        fields = ["mode", "for_whom"]
        labels = {"mode": "Riding mode (as named on the bike)", "for_whom": "Who this mode suits"}

    def __init__(self, *args: Any, known_modes: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.known_modes = known_modes
        self.fields["mode"].widget.attrs["list"] = "modes-known"
        self.fields[
            "for_whom"
        ].help_text = "For example “wet road, new riders” or “track use only”. Printed on the handover sheet."
        if self.instance.pk:
            self.fields["table_text"].initial = format_table(self.instance)

    def clean_mode(self) -> str:
        """Use the spelling the job has for a mode; reject a second table of it in a tune."""
        typed = " ".join(self.cleaned_data["mode"].split())
        mode = next((known for known in self.known_modes if known.casefold() == typed.casefold()), typed)
        same = ThrottleTable.objects.filter(revision=self.instance.revision, mode=mode)
        if same.exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError(
                f"{self.instance.revision} already has a table for {mode}. Edit that table."
            )
        return mode

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        upload = self.cleaned_data.get("table_file")
        field = "table_text"
        try:
            if upload:
                field = "table_file"
                show_file_text(self, "table_text", upload)
                field = "table_text"
            self.read_table()
        except ValueError as problem:
            self.add_error(field, str(problem))
            if upload and field == "table_text":
                self.add_error("table_file", READ_FROM_FILE.format(upload.name))
        return cleaned

    def read_table(self) -> None:
        text = self.cleaned_data.get("table_text") or ""
        if not text.strip():
            raise ValueError("Paste the table here, or choose a file below.")
        table = ThrottleMap.from_text(text)
        self.table = table
        self.instance.grip_pct = table.grip_pct.tolist()
        self.instance.engine_speed_rpm = table.rpm.tolist()
        self.instance.plate_pct = table.plate_pct.tolist()

    def report_conflict(self, sent_version: int) -> None:
        """Report the conflict; show the stored table if the text was not changed here."""
        then, _ = history_since(self.instance, sent_version)
        stored = ThrottleTable.objects.get(pk=self.instance.pk)
        is_unchanged = then is not None and is_same_table(self["table_text"].value(), then.instance)
        super().report_conflict(sent_version)
        if is_unchanged:
            self.data = self.data.copy()
            self.data[self.add_prefix("table_text")] = format_table(stored)


def is_same_table(text: str, table: ThrottleTable) -> bool:
    return text.split() == format_table(table).split()
