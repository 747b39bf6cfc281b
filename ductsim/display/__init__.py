"""How results look: tables, charts, colours, pictures in HTML."""
