"""Pages that need no server and no connection, and figures in them."""
