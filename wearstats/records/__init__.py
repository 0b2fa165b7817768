"""Records: the schema stated once, the rules, what is wrong, readers and writers of sheets."""
