"""One command a module; each loads the library only when it is called."""
