"""Plans as files: TOML read with its place in mind, written back, and changed where it stands."""
