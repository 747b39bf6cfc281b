"""The crop of a machine: how it is described, how ducts run with it, the air it needs."""
