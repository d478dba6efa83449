"""A small site that declares neither how its fed unit takes a feed nor how it admits: two cameras behind one feed."""

from __future__ import annotations

DEPOT = """\
format: 1
site: {name: Depot, timezone: Europe/Berlin}
incomers: {grid: {rating_a: 63}}
panels: {main: {fed_from: grid}}
circuits:
  c1: {panel: main, breaker: "1", rating_a: 16}
  c2: {panel: main, breaker: "2", rating_a: 10}
ups: {u1: {input: c1, rating_w: 600, battery_wh: 500}}
device_types:
  cam: {class: 3, typical_w: 6, night_w: 9}
  ap: {class: 4, typical_w: 11}
units:
  core:
    supplies: [{from: u1}]
    pse: {budget_w: 200, ports: 8, class_max: 8}
    ports:
      1: {feeds: gate, class: 6, priority: critical}
      2: {device: ap-1, type: ap}
      3: {device: phone-1, class: 2}
  gate:
    supplies: [{from: c2}]
    pse: {budget_w: 60, ports: 4}
    ports:
      1: {device: cam-1, type: cam, criticality: 1}
      2: {device: cam-2, type: cam}
"""
