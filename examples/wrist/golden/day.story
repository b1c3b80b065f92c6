885
4.1 millimoles, falls, low in about 9 minutes.
