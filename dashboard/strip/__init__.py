"""The strip chart: a curve in, SVG text out, and the window it shows. Pure."""
