"""JPEG files (ITU-T T.81): segments, coefficients, pictures within; `jpeg` reads and writes."""
