"""Figures that reports and the live bench share: what is drawn is worked out here, `figures.js` only draws it."""
