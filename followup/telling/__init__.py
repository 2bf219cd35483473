"""An operation as it was told, read into the fields of the operative record: text in, readings out."""
