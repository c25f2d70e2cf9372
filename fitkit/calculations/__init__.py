"""Plain functions of numbers and arrays; they know no files, sessions or notebooks."""
