"""SVG drawings of racks, sleds and lamps."""
