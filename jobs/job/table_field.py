"""A text box that a table is pasted or uploaded into."""

from django import forms
from django.core.files.uploadedfile import UploadedFile

from jobs.calc.run_file import RunFileError, open_text
from workshop.records.form import RecordForm

MAX_FILE_BYTES = 1024 * 1024


READ_FROM_FILE = "This table was read from the file “{}”. Correct it here or choose the file again."


def decode_upload(upload: UploadedFile) -> str:
    """Return an uploaded table as text, whatever its encoding.

    Raises
    ------
    ValueError
        Too large, or not text.
    """
    if upload.size and upload.size > MAX_FILE_BYTES:
        raise ValueError("A file with one table has at most 1 MB.")
    try:
        text = open_text(upload.read())
    except RunFileError as problem:
        raise ValueError(str(problem)) from problem
    return text.decode(text.start, text.end)


def show_file_text(form: RecordForm, name: str, upload: UploadedFile) -> None:
    """Show a file's text in the field, where it can be corrected.

    Raises
    ------
    ValueError
        Too large, or not text.
    """
    form.cleaned_data[name] = decode_upload(upload)
    form.data = form.data.copy()
    form.data[form.add_prefix(name)] = form.cleaned_data[name]


def table_area(rows: int, example: str) -> forms.Textarea:
    return forms.Textarea(
        attrs={"rows": rows, "class": "table-text", "spellcheck": "false", "placeholder": example}
    )
