"""Readers of the files a visit may name: digitised film and power files; they know no sessions or calculations."""
