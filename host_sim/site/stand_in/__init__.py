"""What the report of a run needs and a browser does not have, in plain Python.

In the page's archive these packages lie on the path under their own names; nowhere else does
anything import them but the tests, which hold them against the real ones.
"""
