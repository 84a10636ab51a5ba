"""Personal data of a customer: exported, merged with a duplicate, or erased.

Each model declares beside its fields what it may hold about a customer (`workshop.models.PersonalData`).
held_data.py finds it, export.py exports it, merge.py merges duplicates, mentions.py finds the customer's
name in free text, documents.py lists stored documents for the owner's decision, and erase.py removes it.
Apps above this one add a check or a step to `erase` from their AppConfig.ready.
Templates: templates/workshop/privacy/; tests: tests/workshop/privacy/.
"""
