"""The guided run: what a model needs done, in its order, with a board and someone who is asked."""
