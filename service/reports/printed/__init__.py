"""Pages for printing (PDF): a template of typst and plain data, set in a process of their own."""
