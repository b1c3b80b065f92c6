885
4.1 millimoles, falls, low in about 9 minutes.
400 400 400 400 120 60 60 60 60
