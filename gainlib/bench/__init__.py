"""Controls, views and a player bound to one signal flow."""
