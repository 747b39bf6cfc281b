"""The version, where every room can read it."""

VERSION = "0.1.0"
