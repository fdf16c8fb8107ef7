"""The job as pages in a browser, on the printer's own machine: the second front on the library.

It decides nothing: rules are the library's, sentences those of ``show/``, and what it writes are
the documents that the command line writes.  It needs NiceGUI (the extra ``bench``).
"""
