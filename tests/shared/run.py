"""Run the shared tests on the interpreter that runs this file, MicroPython included.

    run.py [MODULE ...]

Without arguments it runs every test_*.py beside it. A test is a function named test_*; it
fails by raising. Prints each failure with its traceback, then `N passed, N failed`.
"""

import os
import sys

HERE = sys.argv[0].rsplit("/", 1)[0]
PACKAGE = "tests.shared."


def module_names():
    """The modules named on the command line, or else all test modules beside this file."""
    if len(sys.argv) > 1:
        return sys.argv[1:]
    files = [name for name in os.listdir(HERE) if name.startswith("test_")]
    return [PACKAGE + name[:-3] for name in sorted(files) if name.endswith(".py")]


def print_failure(name, error):
    """Print the name of a failed test and its traceback."""
    print("FAILED", name)
    if sys.implementation.name == "micropython":
        sys.print_exception(error)
    else:
        import traceback

        traceback.print_exception(error, file=sys.stdout)


def run_module(name):
    """Run all tests of a module; returns how many passed and how many failed."""
    module = __import__(name, None, None, ("tests",))
    passed = failed = 0
    for attribute in sorted(dir(module)):
        if not attribute.startswith("test_"):
            continue
        try:
            getattr(module, attribute)()
            passed += 1
        except Exception as error:
            print_failure(name + "." + attribute, error)
            failed += 1
    return passed, failed


def main():
    """Run the modules one by one; exits with 1 if a test failed or none was found."""
    passed = failed = 0
    for name in module_names():
        module_passed, module_failed = run_module(name)
        passed += module_passed
        failed += module_failed
    print("%d passed, %d failed" % (passed, failed))
    if failed or not passed:
        sys.exit(1)


main()
