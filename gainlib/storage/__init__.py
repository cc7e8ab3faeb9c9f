"""What is kept on disk: files written whole or not at all."""
