"""From trial to trial: what was tasted, the next one, two compared, another still, blends, the book."""
