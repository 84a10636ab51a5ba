"""The whole shop in one file, and back from it on another machine."""

from workshop.backup.archive import Manifest, check_backup, make_backup, restore_backup

__all__ = ["Manifest", "check_backup", "make_backup", "restore_backup"]
