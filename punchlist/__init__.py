"""The punch list: work left undone or wrong, against a tag and a stage."""
