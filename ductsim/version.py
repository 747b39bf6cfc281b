"""The version, where every room can read it."""

VERSION = "0.5.4"
