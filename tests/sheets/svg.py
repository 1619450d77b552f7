"""Reads drawings back from the SVG files in which they were written."""

import re
import xml.etree.ElementTree as ElementTree

import numpy as np

_SVG = "{http://www.w3.org/2000/svg}"
_POINT_MM = 25.4 / 72.0


def parsed(path):
    return ElementTree.parse(path).getroot()


def texts(path):
    """Return every text in the file."""
    return ["".join(element.itertext()).strip() for element in parsed(path).iter(f"{_SVG}text")]


def line_mm(path, gid):
    """Return the points of a named line in mm on the page, shape (n, 2), y upwards."""
    (group,) = [element for element in parsed(path).iter(f"{_SVG}g") if element.get("id") == gid]
    path_element = group.find(f"{_SVG}path")
    numbers = re.findall(r"[ML] (\S+) (\S+)", path_element.get("d"))
    return np.array(numbers, dtype=float) * [1.0, -1.0] * _POINT_MM


def scales(path):
    """Return the scales that the titles state, in the order of the file."""
    found = [re.search(r"\(([\d.]+):([\d.]+)\)$", text) for text in texts(path)]
    return [float(match[1]) / float(match[2]) for match in found if match]


def size_mm(path):
    """Return width and height of the page."""
    root = parsed(path)
    return [float(root.get(side).removesuffix("pt")) * _POINT_MM for side in ("width", "height")]
