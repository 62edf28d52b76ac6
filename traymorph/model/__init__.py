"""Plain data that passes between stages; standard library and numpy only.

Rules, stated once and kept everywhere:

* colour is RGB; arrays are indexed (row, column); points are (x, y); pixel centres lie on whole
  numbers; angles are degrees; lengths are millimetres once the card is known;
* the card's frame: origin at the top left corner of the printed card, x to its right, y down its
  face, both in mm in the plane of the print; *height* is positive out of the printed face. For a
  card lying on the bench height is upwards, for a card standing in the plane of a tray's front
  wall height is towards the camera and what stands behind the wall has a negative height;
* masks hold the share of plant in each pixel, 1 = all plant;
* missing is NaN with a flag that says why, never 0.
"""
