"""Print how many bytes of heap each part of the application takes that a setting asks for.

    parts_memory.py FOLDER BOOT MODULE ...

FOLDER holds the bytecode, BOOT the modules of a start, leaves first and comma-separated. Each
MODULE has fit(application, files or port), as app.parts calls it, or is of the core, only loaded.
They are taken one after the other. Run it on the 32-bit machine, as memory_budget.py.
"""

import gc
import os
import sys

gc.collect()

from tests.support.memory_rig import Anything, BareBoard, NoGarbage  # noqa: E402

boot = sys.argv[2].split(",")
parts = sys.argv[3:]
os.chdir(sys.argv[1])
sys.path[:] = [""]
for name in ("machine", "rp2", "uctypes"):
    sys.modules[name] = Anything()
sys.modules["gc"] = NoGarbage()
for name in boot:
    __import__(name)
    gc.collect()
board = BareBoard()
application = sys.modules["app.start_up"].build(board)
board.card = True
gc.collect()
before = gc.mem_free()
for name in parts:
    __import__(name)
    gc.collect()
    if hasattr(sys.modules[name], "fit"):
        given = board.card_port() if name == "app.card_trace" else board.files()
        sys.modules[name].fit(application, given)
    gc.collect()
    after = gc.mem_free()
    print(name, before - after)
    before = after
application.poll()
