"""The signed receipt as a document: printed once, when it is signed, and kept as it is."""
