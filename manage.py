#!/usr/bin/env python
"""Django's command line for Lash & Lambda."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    from workshop.data_dir import PRIVATE, ShopManagementUtility

    os.umask(PRIVATE)
    if sys.argv[1:2] == ["demo"]:
        from workshop.demo_environment import prepare

        prepare()
    ShopManagementUtility(sys.argv).execute()


if __name__ == "__main__":
    main()
