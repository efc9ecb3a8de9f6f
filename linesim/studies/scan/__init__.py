"""The main job: target, render, measure, write."""
