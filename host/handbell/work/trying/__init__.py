"""Operations without boxes: the demo, virtual boxes, and how things stand."""
