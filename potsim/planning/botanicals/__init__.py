"""What is weighed out: the library of botanicals, the bill, the release of oil; and kinds of base spirit."""
