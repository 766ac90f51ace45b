"""Print which interpreter this is and how wide its machine word is."""

import sys

print(sys.implementation.name, 64 if sys.maxsize > 2**32 else 32)
