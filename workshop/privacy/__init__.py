"""Personal data of a customer: exported, merged with a duplicate, or erased.

Each model declares beside its fields what it may hold about a customer (`workshop.models.PersonalData`).
held_data.py exports it, merge.py merges duplicates, mentions.py finds the customer's name in free text,
erase.py removes it. Apps above this one add a check or a step to `erase` from their AppConfig.ready.
Templates: templates/workshop/privacy/; tests: tests/workshop/privacy/.
"""
