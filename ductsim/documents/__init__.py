"""Files as people write them: TOML documents and tables of cells, read with a place for every refusal."""
