"""Load the whole firmware as a board does; print the heap, what boot leaves, what all leaves.

    memory_budget.py BOOT OTHERS     comma-separated modules, leaves first

Run it on the 32-bit machine. It loads bytecode from build/firmware, one module after the other,
and collects the garbage of loading in between, as a board would.

The collector of that machine does not see what compiled WebAssembly keeps in its own variables,
the frames of larger functions among it. So it is called from the script's top level alone, where
nothing else is active, and the firmware's own calls are taken away.
"""

import gc
import os
import sys

from tests.support.memory_rig import Anything, BareBoard, NoGarbage

boot, others = (argument.split(",") for argument in sys.argv[1:])
os.chdir("build/firmware")
sys.path[:] = [""]  # as on a board, where every name of a file is in memory
for name in ("machine", "rp2", "uctypes"):
    sys.modules[name] = Anything()
sys.modules["gc"] = NoGarbage()
gc.collect()
heap = gc.mem_free() + gc.mem_alloc()
for name in boot:
    __import__(name)
    gc.collect()
application = sys.modules["app.start_up"].build(BareBoard())
gc.collect()
booted = gc.mem_free()
for name in others:
    __import__(name)
    gc.collect()
loaded = gc.mem_free()
application.poll()
print(heap, booted, loaded)
