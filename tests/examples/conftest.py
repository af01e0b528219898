"""The examples are distributions of their own: `test_examples.py` installs them and runs their tests in a process."""

collect_ignore_glob = ["*"]
