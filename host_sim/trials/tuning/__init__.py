"""Tune a machine and show why: curve, step test, loop gains, margins, brisk and slow."""
