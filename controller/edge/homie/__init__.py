"""The chamber as a Homie 5 device, an open convention: any hub that speaks it shows the chamber."""
