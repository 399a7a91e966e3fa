#!/usr/bin/env python3
"""Makes tests/reference/points.json: what an independent library reads in tests/reference/points.dxf.

    python3 -m venv v && v/bin/pip install ezdxf==1.4.5
    v/bin/python tests/reference/points.py > tests/reference/points.json
"""
import json
from pathlib import Path

import ezdxf

drawing = ezdxf.readfile(Path(__file__).with_name("points.dxf"))
space = drawing.modelspace()
circles = [
    {"layer": c.dxf.layer, "x": c.dxf.center.x, "y": c.dxf.center.y, "radius": c.dxf.radius}
    for c in space.query("CIRCLE")
]
labels = [text.dxf.text for text in space.query("TEXT")]
faults = len(drawing.audit().errors)
read = {"circles": circles, "lines": len(space.query("LINE")), "labels": labels, "faults": faults}
print(json.dumps(read, indent=1))
