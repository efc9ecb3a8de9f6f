"""A set laid out for loaders: lists of what it holds, folders by kind, shards."""
