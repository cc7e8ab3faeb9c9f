"""Pictures of a rendering, each with axes, units and a sentence that says the same."""
