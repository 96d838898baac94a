"""Runs the validator of the Data Package specification over an unpacked pack.

    pip install frictionless==5.19.0
    python check_pack.py FOLDER

Pinned apart from requirements.txt: it writes no vectors, and brings forty packages of its own.
"""

import os
import sys

from frictionless import validate

os.chdir(sys.argv[1])
report = validate("datapackage.json", type="package")
for task in report.tasks:
    print(f"{task.name}: {'valid' if task.valid else 'NOT VALID'}, {task.stats.get('rows', '?')} rows")
    for error in task.errors:
        print("   ", error.message)
for error in report.errors:
    print(error.message)
sys.exit(0 if report.valid else 1)
