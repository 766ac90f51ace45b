"""Load the firmware as a board does and print what is free, each in bytes.

    memory_budget.py FOLDER BOOT SCREENS [OTHERS]

FOLDER holds the bytecode. BOOT and OTHERS are comma-separated modules, leaves first; SCREENS is
the same for each screen that can be opened, with semicolons in between. Printed are the heap,
what is free after boot, with the largest of the screens open, after they were let go of, and,
where OTHERS is given, with every module loaded at once.

Run it on the 32-bit machine. It loads one module after the other and collects the garbage of
loading in between, as a board would.

The collector of that machine does not see what compiled WebAssembly keeps in its own variables,
the frames of larger functions among it. So it is called from the script's top level alone, where
nothing else is active, and the firmware's own calls are taken away.
"""

import gc
import os
import sys

gc.collect()
before_rig = gc.mem_free()
heap = before_rig + gc.mem_alloc()

from tests.support.memory_rig import Anything, BareBoard, NoGarbage  # noqa: E402

boot = sys.argv[2].split(",")
screens = [screen.split(",") for screen in sys.argv[3].split(";")]
others = sys.argv[4].split(",") if len(sys.argv) > 4 else []
os.chdir(sys.argv[1])
sys.path[:] = [""]  # as on a board, where every name of a file is in memory
for name in ("machine", "rp2", "uctypes"):
    sys.modules[name] = Anything()
sys.modules["gc"] = NoGarbage()
gc.collect()
rig = before_rig - gc.mem_free()
for name in boot:
    __import__(name)
    gc.collect()
application = sys.modules["app.start_up"].build(BareBoard())
gc.collect()
booted = gc.mem_free()
lowest = booted
for screen in screens:
    for name in screen:
        __import__(name)
        gc.collect()
    lowest = min(lowest, gc.mem_free())
    sys.modules["app.loaded"].forget()
    gc.collect()
forgotten = gc.mem_free()
for name in others:
    __import__(name)
    gc.collect()
loaded = gc.mem_free()
application.poll()
print(heap, booted + rig, lowest + rig, forgotten + rig, loaded + rig)
