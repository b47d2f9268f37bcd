"""Writes password.txt: what argon2-cffi 25.1.0 (PyPI) makes of the password of the tests.

python3 -m venv V && V/bin/pip install argon2-cffi==25.1.0 && V/bin/python tests/reference/password.py
"""

import pathlib

import argon2

hasher = argon2.PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)
text = hasher.hash("five blue benches by the weir", salt=b"sixteen bytes...")
pathlib.Path(__file__).with_name("password.txt").write_text(text + "\n")
