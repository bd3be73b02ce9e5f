#version 300 es
precision highp float;
flat in vec4 mark;
out vec4 colour;

void main() {
  colour = mark;
}
