"""Many visits as one table, and what a clinic's own results say.

``visits`` reads a folder of sessions, gives it as a data frame and tells how each visit went on, ``work`` counts what
was found and done, ``learning`` takes the settings that were kept, learns a starting band from them or says why not,
makes a house rule of it when a person asks for that and compares fitters, and ``overview`` puts it all in words and
tables. Import the module you need: this one costs nothing.
"""
