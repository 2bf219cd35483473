"""What comes in and goes out in forms that others write and read: a package a form, none knows another."""
