"""Bad input by the thousand: no traceback, no hang, no flood of memory, nothing that disturbs a terminal."""
