"""The author's tools: validation of an exercise file, its proof, the search for answers, templates."""
