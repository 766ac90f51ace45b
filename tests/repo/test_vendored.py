"""What was taken from elsewhere is unchanged, and its licence lies beside it."""

import hashlib
import re

from tests.repo.tree import ROOT

VENDOR = ROOT / "host_sim/panel/vendor"


def test_vendored_files_have_the_sums_that_their_page_names():
    text = (VENDOR / "README.md").read_text()
    named = dict(re.findall(r"^\| `([^`]+)` \| .* \| ([0-9a-f]{64}) \|$", text, re.MULTILINE))
    found = {path.name: hashlib.sha256(path.read_bytes()).hexdigest()
             for path in VENDOR.iterdir() if path.name != "README.md"}
    assert found == named
    assert "Permission is hereby granted, free of charge" in (
        VENDOR / "uPlot.LICENSE.txt").read_text()
