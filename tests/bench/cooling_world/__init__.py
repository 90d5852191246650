"""An independent world of cooling castings, to try forecasts on.

Many-node thermal networks with temperature-dependent properties, solved in small steps: nothing
here knows the estimator's equations, and nothing here imports the product.
"""
