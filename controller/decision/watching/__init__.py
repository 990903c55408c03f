"""What is watched of switching's effect, one thing in each module; `effect.py` joins them."""
