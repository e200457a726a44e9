"""Making a class last exactly its slot."""
