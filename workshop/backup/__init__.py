"""The whole shop in one file, and back from it on another machine."""

from workshop.backup.archive import Manifest, create_backup, restore_backup, verify_backup

__all__ = ["Manifest", "create_backup", "restore_backup", "verify_backup"]
