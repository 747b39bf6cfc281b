"""The crop of a machine: how it is described, its way, the air it needs, the speed it allows."""
