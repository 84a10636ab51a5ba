"""Storage of style sheets and scripts under names that hold a hash of their content."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class HashedStaticFilesStorage(CompressedManifestStaticFilesStorage):
    """Let the imports of our scripts follow the hashed names too.

    A browser may keep a hashed file for ever, so a script must name its imports by their hash as well.
    """

    support_js_module_import_aggregation = True
