"""Measurements that are run on request, each as `python -m tests.benchmarks.NAME`."""
