"""What every other folder uses: errors, files, units, progress."""
