"""Faults that are caused for real: killed processes, full disks, damaged pages."""
