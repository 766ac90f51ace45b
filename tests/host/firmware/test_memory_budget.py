"""The firmware fits the memory of a small board, with room for its work."""

from host_sim.build.firmware import FREE_HEAP_MIN, build, memory_budget, screen_loads

FREE_WITH_A_SCREEN = 30_000


def test_heap_of_190k_leaves_60k_after_boot(record_property):
    build()
    budget = memory_budget()
    record_property(
        "summary",
        f"free of a heap of {budget.heap:,}: after boot {budget.booted:,}, "
        f"with the largest screen {budget.lowest:,}",
    )
    assert budget.booted >= FREE_HEAP_MIN
    assert budget.lowest >= FREE_WITH_A_SCREEN


def test_every_screen_is_among_those_measured():
    loads = {name for names in screen_loads([]) for name in names}
    assert {"app.screens.parts", "app.screens.edit", "app.screens.run"} <= loads
    assert {"rate_control.procedures.plot_catch", "rate_control.settings_words"} <= loads
